"""Webhooks: made and ended, where they may go, what is sent and when."""
