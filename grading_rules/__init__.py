"""The rules, kinds, phrases and markets as data: TOML that a shop may read and change."""
