"""The REST interface: thin views over the domain's services and queries."""
