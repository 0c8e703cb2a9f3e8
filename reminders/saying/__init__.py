"""What a person says, turned into what the program works with."""
