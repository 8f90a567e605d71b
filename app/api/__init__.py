"""HTTP resources: thin, each asks a service. Nothing here knows a table."""
