"""Steps from version to version of the shop's database."""
