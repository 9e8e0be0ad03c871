"""Pictures of slides, valves and horns, as SVG."""
