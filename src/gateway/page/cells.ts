/** Who has which cell: those that move keep theirs; where none is free, others give theirs away. */
export function placed(held: readonly string[], now: readonly string[], places: number): string[] {
  const cells = held.slice(0, places);
  const moves = new Set(now);
  const without = now.filter((name) => !cells.includes(name));
  while (cells.length < places && without.length > 0) cells.push(without.shift()!);
  for (let i = 0; i < cells.length && without.length > 0; i++)
    if (!moves.has(cells[i]!)) cells[i] = without.shift()!;
  return cells;
}
