/**
 * Colours of wire insulation by letter code. Source: IEC 60757, Code for designation of colours: two
 * capital letters for a colour, and several codes in a row for a core of several colours, e.g. GNYE.
 */
export const WIRE_COLOURS: Readonly<Record<string, string>> = {
  BK: 'black',
  BN: 'brown',
  RD: 'red',
  OG: 'orange',
  YE: 'yellow',
  GN: 'green',
  BU: 'blue',
  VT: 'violet',
  GY: 'grey',
  WH: 'white',
  PK: 'pink',
  GD: 'gold',
  TQ: 'turquoise',
  SR: 'silver',
};

/** These colours on a screen or in print; the standard gives only names. */
export const SCREEN_COLOURS: Readonly<Record<string, string>> = {
  BK: '#1b1b1b',
  BN: '#7a4a21',
  RD: '#cf1f26',
  OG: '#ee7d14',
  YE: '#f5d400',
  GN: '#1d8a3a',
  BU: '#1f5fc4',
  VT: '#7a3fa0',
  GY: '#8b8f94',
  WH: '#ffffff',
  PK: '#f29ab8',
  GD: '#c09a3a',
  TQ: '#2fb5b0',
  SR: '#c3c8cd',
};

/** The two-letter codes within a code; undefined when it is not an IEC 60757 code. */
export function singleColours(code: string): string[] | undefined {
  const singles = code.match(/../g) ?? [];
  const known = singles.every((single) => Object.hasOwn(WIRE_COLOURS, single));
  return known && singles.length > 0 && code.length % 2 === 0 ? singles : undefined;
}

/** The name of a code: `YE` is `yellow`, `GNYE` is `green-yellow`; undefined for any other text. */
export function wireColourName(code: string): string | undefined {
  return singleColours(code)
    ?.map((single) => WIRE_COLOURS[single])
    .join('-');
}
