"""What each shard of clips holds, by its number: patterns, one player's takes, sound without a beat; and which are kept for validation."""

KINDS = ("pattern",) * 7 + ("00",) * 3 + ("01",) * 3 + ("idle",)
KEPT_EVERY = 11


def kind_of(n):
    return KINDS[n % len(KINDS)]
