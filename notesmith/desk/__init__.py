"""The desk: pages on the user's own machine for a lecturer and an editor. All HTTP of the package is in this room."""
