/** The few shapes that the drawings are made of. */

const ENTITIES: Record<string, string> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };

/** Text that is safe in XML and HTML, in attributes as well; what XML has no place for is left out. */
export function escaped(text: string): string {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: XML 1.0, section 2.2, excludes them
  const clean = text.replace(/[\0-\x08\x0B\x0C\x0E-\x1F\uFFFE\uFFFF]/g, '');
  return clean.replace(/[&<>"]/g, (letter) => ENTITIES[letter]!);
}

/** A tenth of a pixel is as fine as it needs to be. */
export function px(value: number): number {
  return Math.round(value * 10) / 10;
}
