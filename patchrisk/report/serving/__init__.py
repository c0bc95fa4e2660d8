"""The page over the course's own network, with forms that write records down."""
