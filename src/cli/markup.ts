import type { VNode } from 'preact';
import { renderToString } from 'preact-render-to-string';

/**
 * A drawing as text. The library escapes what is markup; left out is what XML has no place for, and
 * `]]>`, which it forbids in text, is written otherwise (XML 1.0, sections 2.2 and 2.4).
 */
export function markup(drawing: VNode): string {
  return (
    renderToString(drawing)
      // biome-ignore lint/suspicious/noControlCharactersInRegex: those are the ones to be left out
      .replace(/[\0-\x08\x0B\x0C\x0E-\x1F\uFFFE\uFFFF]/g, '')
      .replaceAll(']]>', ']]&gt;')
  );
}
