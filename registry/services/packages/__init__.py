"""The open-data package: written, offered, and loaded again as a registry."""
