"""Questions asked of finished plans: bass review, section fit, comparison, drills, survey."""
