"""The kinds of bike that there is a starter for; apart from `starter`, so that help loads nothing else."""

from collections.abc import Mapping

KINDS: Mapping[str, str] = {
    "naked": "a bike without fairing",
    "faired": "a sports bike with full fairing, also ridden on track",
    "tourer": "a touring bike with panniers",
    "trail": "a bike for road and trail",
    "scooter": "a scooter",
}
"""Kinds of bike that there is a starter for."""
