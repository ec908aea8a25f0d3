"""What was seen: inspections, findings, their severity and evidence."""
