"""Grouping millions of rows by words: each word a small number, each group of words one number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Keys:
    """One whole number a row for the words in `columns`; larger means later in the words' order."""

    number: np.ndarray  # (n_rows,) int64
    columns: tuple[str, ...]
    labels: tuple[np.ndarray, ...]  # the words of each column, sorted

    def words(self, number: np.ndarray) -> dict[str, pd.Categorical]:
        """The words behind (k,) numbers, a column each."""
        out: dict[str, pd.Categorical] = {}
        for name, labels in zip(reversed(self.columns), reversed(self.labels), strict=True):
            number, code = np.divmod(number, len(labels))
            out[name] = pd.Categorical.from_codes(code, labels)
        return {name: out[name] for name in self.columns}


def word_codes(column: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """(n,) codes and the sorted words they stand for; words kept as categories are not spelled out again."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        words = np.asarray(column.cat.categories.astype(str), dtype=object)
        order = np.argsort(words, kind="stable")
        place = np.empty(len(words), np.int64)
        place[order] = np.arange(len(words))
        return place[column.cat.codes.to_numpy()], words[order]
    codes, words = pd.factorize(column.astype(str), sort=True)
    return codes.astype(np.int64), np.asarray(words, dtype=object)


def row_keys(table: pd.DataFrame, columns: list[str]) -> Keys:
    """The keys of every row, by the columns in that order."""
    number = np.zeros(len(table), np.int64)
    labels = []
    for name in columns:
        codes, words = word_codes(table[name])
        number = number * max(len(words), 1) + codes
        labels.append(words)
    return Keys(number, tuple(columns), tuple(labels))


def starts_of(sorted_numbers: np.ndarray) -> np.ndarray:
    """Where each group begins in numbers that are sorted."""
    return np.flatnonzero(np.concatenate([[True], sorted_numbers[1:] != sorted_numbers[:-1]])) if len(sorted_numbers) else np.zeros(0, int)
