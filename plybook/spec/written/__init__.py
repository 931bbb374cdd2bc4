"""The spec as written: strict models of every mapping in a spec file."""
