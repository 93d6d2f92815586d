"""The invented sample territory: Farrow to Thistle Quay, a line that exists nowhere."""
