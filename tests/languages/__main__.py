"""`make messages`: the catalogues gather what is new; `.mo` files are made from them."""

from __future__ import annotations

import django

if __name__ == "__main__":
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    django.setup()
    from tests.languages.catalogues import LANGUAGES, po_path, renew

    for language in LANGUAGES:
        sentences, missing = renew(language)
        print(f"{po_path(language)}: {sentences} sentences, {missing} to translate")
