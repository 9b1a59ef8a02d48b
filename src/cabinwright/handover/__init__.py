"""Documents for people and machines: settings to load, the report, the plan, the verification."""
