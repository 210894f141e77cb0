"""What people type: read in their units and their mill's zone, handed on in SI units and UTC."""
