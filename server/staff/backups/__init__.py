"""The page Backups: when the clinic was copied, when a copy was proved, and the release of a restored clinic."""
