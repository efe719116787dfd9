import type { ShoppingItem } from '../proposal/shopping.ts';
import { csvCell } from './csv.ts';
import { table } from './output.ts';

/** The shopping list for a person. */
export function shoppingText(items: readonly ShoppingItem[]): string {
  const rows = items.map((one) => [
    String(one.quantity),
    one.unit === 'm' ? 'm' : '',
    one.item,
    one.size,
    one.for.join(' '),
  ]);
  return [
    table(['quantity', '', 'what', 'size', 'for'], rows),
    '',
    'Metres have a tenth to spare. Gauges and fuses are calculations, not a permit; parts are classes, not products.',
  ].join('\n');
}

/** The same as RFC 4180 has it; the last line has no end yet. */
export function shoppingCsv(items: readonly ShoppingItem[]): string {
  const rows = items.map(({ item, size, quantity, unit, for: owners }) => [
    ...[quantity, unit, item, size],
    owners.join(' '),
  ]);
  return [['quantity', 'unit', 'item', 'size', 'for'], ...rows]
    .map((row) => row.map(csvCell).join(','))
    .join('\r\n');
}
