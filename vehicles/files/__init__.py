"""Files: pictures made upright, small and bare before they are kept; documents looked at; both stored by their hash."""
