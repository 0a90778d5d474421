"""Readings -> points: starting values, solver, datum, mistakes, covariance."""
