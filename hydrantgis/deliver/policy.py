"""
What a page may fetch: nothing but itself (Content Security Policy, W3C).
"""

from __future__ import annotations


def policy_tag(*, scripts: bool = False, images_from: str = "") -> str:
    """
    Return the element that keeps a page from asking for anything; a policy binds what follows it.

    Parameters
    ----------
    scripts
        Whether scripts that stand in the page may run.
    images_from
        A host that may be asked for pictures.

    Examples
    --------
    >>> "script-src" in policy_tag(), "script-src 'unsafe-inline'" in policy_tag(scripts=True)
    (False, True)
    """
    script = "script-src 'unsafe-inline'; " if scripts else ""
    images = f" {images_from}" if images_from else ""
    return (
        f'<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; {script}'
        f"style-src 'unsafe-inline'; img-src data:{images}; base-uri 'none'; form-action 'none'\">"
    )
