"""YAML as people mean it: `no`, `yes`, `on` and `off` are words, a repeated key is an error.

What somebody wrote costs no more than its length: no anchors and aliases, by which a few lines stand for millions, no
tags, and bounds on its size, its depth and the length of a number.
"""

from __future__ import annotations

import re
from typing import Any

import yaml

from liftseries.base.plain_text import unseen_in

MOST_BYTES = 512 * 2**10  # thousands of accepted oddities have room
MOST_DEPTH = 40  # keys within keys
MOST_DIGITS = 40  # of a number; Python takes long for thousands


class _Words:
    """For a safe loader: the YAML 1.2 booleans, so that a level called `no` stays a word; each key once."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict:
        seen = set()
        for key_node, _ in node.value:
            if key_node.tag == "tag:yaml.org,2002:merge":
                continue
            key = self.construct_object(key_node, deep=True)
            if not isinstance(key, str | int | float | bool):
                raise yaml.constructor.ConstructorError(
                    None, None, "a key is neither a word nor a number", key_node.start_mark
                )
            if key in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f'the key "{key}" stands twice', key_node.start_mark
                )
            seen.add(key)
        return super().construct_mapping(node, deep=deep)


class _Loader(_Words, yaml.SafeLoader):
    """For what people write: says in clear words what is wrong."""

    depth = 0

    def compose_node(self, parent, index) -> yaml.Node:
        event = self.peek_event()
        if getattr(event, "anchor", None):
            raise _refused("an anchor (&) or alias (*): write the values out where they belong", event)
        if getattr(event, "tag", None):
            raise _refused("a tag (!): put quotation marks around what begins with it, or take it out", event)
        if isinstance(event, yaml.ScalarEvent) and (unseen := unseen_in(event.value)):
            raise _refused(f"a character that cannot be seen ({unseen}): take it out", event)
        self.depth += 1
        if self.depth > MOST_DEPTH:
            raise _refused(f"more than {MOST_DEPTH} levels of keys or lists within each other", event)
        node = super().compose_node(parent, index)
        self.depth -= 1
        if node.tag.endswith((":int", ":float")) and len(node.value) > MOST_DIGITS:
            raise _refused(f"a number of more than {MOST_DIGITS} digits: shorten it", event)
        return node


def _refused(why: str, event: yaml.Event) -> yaml.MarkedYAMLError:
    return yaml.composer.ComposerError(None, None, why, event.start_mark)


class _ShippedLoader(_Words, getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
    """For our own files, which every job reads: libyaml, some ten times as fast."""


for _loader in (_Loader, _ShippedLoader):
    _loader.yaml_implicit_resolvers = {
        first: [(tag, pattern) for tag, pattern in resolvers if not tag.endswith((":bool", ":timestamp"))]
        for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
    }
    _loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile(r"^(?:true|false)$", re.I), list("tTfF"))


def load_yaml(text: str) -> Any:
    """Raises yaml.YAMLError with line and column where the text is no YAML, or more than is read."""
    if len(text) > MOST_BYTES:
        raise yaml.YAMLError
    return yaml.load(text, Loader=_Loader)


def load_shipped_yaml(text: str) -> Any:
    """The same of a file that liftseries ships."""
    return yaml.load(text, Loader=_ShippedLoader)
