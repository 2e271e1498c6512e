"""What people do in a day, each deed once: in a process of its own, under another role of the database."""

from __future__ import annotations

import django


def main() -> None:
    django.setup()
    from registry.services.accounts import account_erase
    from registry.services.sheets import sheet_amend, sheet_submit
    from tests.api.made import made_design, made_token, made_user, sheet_body

    design = made_design(made_user("proposer"))
    for name in ("first", "second", "third"):
        reader = made_user(name)
        made_token(reader, "read")
        sheet = sheet_submit(by=reader, body=sheet_body(design))
        body = sheet_body(design, held_good="new")
        sheet_amend(by=reader, sheet=sheet, on_version=1, body=body, reason="typo")
    account_erase(by=reader)


if __name__ == "__main__":
    main()
