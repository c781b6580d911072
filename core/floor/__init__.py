"""What people see at the machines: every rack as it stands, a check-in, a round."""
