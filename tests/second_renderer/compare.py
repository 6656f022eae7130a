#!/usr/bin/env python3
"""Holds what the program wrote for photographs of draw.py against their truth and prints a table.

usage: compare.py DIR RESULTS    (the folder draw.py wrote, and the one `frygauge score DIR --out RESULTS` wrote)
"""
import csv, os, sys
from collections import defaultdict
import numpy as np

# A found fish is a drawn one if its middle lies within this share of the length of it.
NEAR = .35


def rows(path):
    with open(path, newline='') as file:
        return list(csv.DictReader(file))


def by(records, column):
    groups = defaultdict(list)
    for record in records:
        groups[record[column]].append(record)
    return groups


def pairs(truth, found):
    """Drawn and found fish of one photograph that are the same, each once, and how many found ones are left."""
    left, same = list(found), []
    for drawn in truth:
        x, y, length = (float(drawn[c]) for c in ('middle_x', 'middle_y', 'total_length_px'))
        gap = lambda f: np.hypot(float(f['x_px']) - x, float(f['y_px']) - y)
        nearest = min(left, key=gap, default=None)
        if nearest is not None and gap(nearest) < NEAR * length:
            left.remove(nearest)
            same.append((drawn, nearest))
    return same, len(left)


def main(folder, results):
    truth, found = by(rows(os.path.join(folder, 'truth.csv')), 'kind'), by(rows(os.path.join(results, 'fish.csv')), 'photo')
    print(f'{"":12s}fish recall  prec.  used   bias    MAE    p95 called  right')
    for kind, drawn in truth.items():
        same, false = [], 0
        for photo, fish in by(drawn, 'photo').items():
            matched, others = pairs(fish, found.get(photo, []))
            same, false = same + matched, false + others
        error = lambda d, f: 100 * (float(f['total_length_px']) / float(d['total_length_px']) - 1)
        errors = np.array([error(d, f) for d, f in same if f['use_length'] == 'yes'] or [np.nan])
        calls = [(d['inflated'] == 'True', f['call'] == 'inflated') for d, f in same
                 if f['use_call'] == 'yes' and f['call'] in ('inflated', 'not_inflated')]
        right = np.mean([a == b for a, b in calls]) if calls else np.nan
        hits = max(len(same), 1)
        print(f'{kind:12s}{len(drawn):4d} {len(same) / len(drawn):6.3f} {len(same) / max(hits + false, 1):6.3f} '
              f'{np.isfinite(errors).sum() / hits:5.2f} {np.median(errors):6.2f} {np.abs(errors).mean():6.2f} '
              f'{np.percentile(np.abs(errors), 95):6.2f} {len(calls) / hits:6.2f} {right:6.3f}')


if __name__ == '__main__':
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
