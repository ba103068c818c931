"""Pure cryptography: derivations, due sheets, envelopes, field and answer ciphers. No clock, no database, no files."""
