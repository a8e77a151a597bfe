"""The demo railway and its run: from the layout file to a verdict on the virtual board."""
