"""Tidy readings come in: a file is planned, compared with what is here, and stored whole or not at all."""
