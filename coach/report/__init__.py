"""What people hear and look at afterwards."""
