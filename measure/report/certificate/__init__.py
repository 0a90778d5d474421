"""The sheet that leaves the shop: one content, printed as HTML and as PDF."""
