"""The plant folder: its layout, how it is read, checked, merged into what is known, and written back."""
