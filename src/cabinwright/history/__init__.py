"""What happened to a build: every accepted change, and what two builds differ in, in words."""
