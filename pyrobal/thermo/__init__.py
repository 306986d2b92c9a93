"""Thermochemistry: elements, tables of substances, and their properties over temperature."""
