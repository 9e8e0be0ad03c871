"""Horn models: acoustics, data, and every way to sound a pitch."""
