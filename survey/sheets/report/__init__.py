"""The whole survey as one document, HTML and PDF."""
