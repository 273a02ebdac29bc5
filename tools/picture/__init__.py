"""Pictures of run files."""
