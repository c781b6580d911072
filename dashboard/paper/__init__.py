"""Sheets of paper."""
