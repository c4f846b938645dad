"""What people can show: hours, assessments, certifications, instruction, appointments, stand-downs."""
