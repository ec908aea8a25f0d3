"""What goes out on paper, from the record: inspection report, return-to-service certificate."""
