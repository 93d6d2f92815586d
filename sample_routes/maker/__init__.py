"""What the sample territory is made of: the line, the country around it, the files."""
