"""Every sentence of the reports by name, with named holes; code asks for a name and fills the holes."""
