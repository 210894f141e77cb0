"""Instants, written as people write them."""

from __future__ import annotations

from datetime import UTC, datetime


def at(text: str) -> datetime:
    """`at("2026-03-01 06:30")` is that instant in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
