"""Designs and their labels fetched once, for a reading of many sheets in one go."""

from __future__ import annotations

from registry.errors import RegistryError
from registry.models import Design
from registry.selectors.designs import design_named
from registry.selectors.labels import DesignLabels


class KeptCatalogue:
    """The same answers as `design_named` and `DesignLabels`, each asked of the database once."""

    def __init__(self) -> None:
        self._designs: dict[str, Design | RegistryError] = {}
        self._labels: dict[int, DesignLabels] = {}

    def design(self, text: str) -> Design:
        if text not in self._designs:
            try:
                self._designs[text] = design_named(text, with_connector=False)
            except RegistryError as error:
                self._designs[text] = error
        found = self._designs[text]
        if isinstance(found, RegistryError):
            raise found
        return found

    def labels(self, design: Design) -> DesignLabels:
        if design.pk not in self._labels:
            self._labels[design.pk] = DesignLabels(design)
        return self._labels[design.pk]
