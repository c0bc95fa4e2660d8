"""Every rule, and the verdict, in many past seasons; and how right they were."""
