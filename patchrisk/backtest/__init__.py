"""Rules held against past seasons: what they said, and how right they were."""
