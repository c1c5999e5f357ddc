"""The chain: each movement and event carries the digest of its content and of the one before."""
