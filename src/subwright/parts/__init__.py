"""Part records: what they hold, where they come from, the starter library and the user's drawer.

How to add a record to the library
----------------------------------
1. Open ``data/<kind>.toml``. A file holds ``[source.<key>]`` tables (document, condition, kind and, where
   some fields are not from that document, ``memory_fields`` or ``computed_fields``) and one or more
   ``[[<kind>]]`` tables of ``defaults``, ``columns`` and ``rows``: one row is one record, its first value
   the id. Numbers are SI under the field's own name (``qg_coul``: 146e-9). ``"-"`` means: not stated.
2. Take values from a data sheet that you have open, give it a ``[source]`` table with kind "datasheet", its
   document name and the condition. Say "memory" where you recall a value, "computed" where it follows from
   others, "invented" only for demonstration drivers. Don't mix kinds in one source without naming the fields.
3. A core's row is one size; ``grades`` lists the materials that it is made in with the catalogue's A_L each,
   ``"-"`` where the catalogue's value isn't known. What follows from the dimensions is worked out
   (:mod:`subwright.parts.cores`).
4. Run ``pytest tests/data tests/unit/parts tests/published/test_core_tables.py``: they check each record for
   plausibility and for agreement with published tables.

A new kind of part needs a frozen dataclass with ``Annotated`` bounds in one of the record modules, an entry
in ``schema.KINDS``, a file name in ``tables.py`` and a property and method of ``Library``.

The modules, bottom up: ``record`` (what all records share), ``magnetic``, ``semiconductor``, ``integrated``
and ``passive`` (the kinds), ``schema`` (all of them), ``reader`` (mappings to checked records), ``cores``
(what follows from a core's dimensions), ``tables`` (the library's files), ``library`` (look-up), ``stock``,
``drawer_reader`` and ``drawer`` (the user's own file).

Parts of your own don't belong in the library but in a drawer file; see :mod:`subwright.parts.drawer`.
"""
