"""What comes in: files of the user, weather services, disease files; each read right or refused."""
