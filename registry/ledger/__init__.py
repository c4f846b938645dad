"""The Merkle log of every record, its signed checkpoints, proofs and verification."""
