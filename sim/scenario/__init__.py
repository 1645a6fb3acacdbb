"""Scenario files in, validated models out."""
