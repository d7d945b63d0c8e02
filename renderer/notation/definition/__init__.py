"""Definition files (TOML): what a teacher writes by hand, read and written."""
