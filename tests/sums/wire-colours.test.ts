import { describe, expect, test } from 'vitest';
import { singleColours, WIRE_COLOURS, wireColourName } from '../../src/sums/wire-colours.ts';

describe('wire colours', () => {
  // IEC 60757:1983, table of letter codes (from memory).
  const TABLE = `
    BK black    BN brown   RD red    OG orange  YE yellow  GN green  BU blue  VT violet
    GY grey     WH white   PK pink   GD gold    TQ turquoise         SR silver`;

  test('codes and names are those of IEC 60757', () => {
    const rows = [...TABLE.matchAll(/([A-Z]{2}) ([a-z]+)/g)];
    expect(rows.map(([, code, name]) => [code, name])).toEqual(Object.entries(WIRE_COLOURS));
  });

  // IEC 60757 (from memory): GNYE, green-and-yellow, is the protective conductor of IEC 60445.
  test('a core of two colours', () => {
    expect(wireColourName('GNYE')).toBe('green-yellow');
    expect(singleColours('GNYE')).toEqual(['GN', 'YE']);
  });

  test.each(['', 'Y', 'YEL', 'yellow', 'XX', 'YEXX', 'ye', '__proto__'])(
    '%j is not a code',
    (code) => {
      expect(wireColourName(code)).toBeUndefined();
      expect(singleColours(code)).toBeUndefined();
    },
  );
});
