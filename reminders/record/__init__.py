"""What the household says has really happened: facts, their text form, and the store that keeps them."""
