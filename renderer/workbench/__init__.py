"""A local server, thin over what the other rooms make."""
