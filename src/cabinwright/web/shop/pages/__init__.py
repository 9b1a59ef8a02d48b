"""The shop's pages: each says what it looks up and how that is drawn."""
