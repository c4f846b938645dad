from typing import Any

OWNER_ALIAS = "owner"


class OwnerMigrates:
    """Both aliases lead to one database; only the owner's may change its schema."""

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:
        return db == OWNER_ALIAS

    def allow_relation(self, obj1: Any, obj2: Any, **hints: Any) -> bool:
        return True
