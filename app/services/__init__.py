"""What people ask for, one subject a module: contracts in, contracts out."""
