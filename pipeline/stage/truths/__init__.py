"""What is true of each skill, one file a skill. In: joints and skin heights at every moment. Out: the key window and details."""
