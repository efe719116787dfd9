import type { ShoppingItem } from '../proposal/shopping.ts';
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
