import { Fragment, h } from 'preact';
import { expect, test } from 'vitest';
import { markup } from '../../src/cli/markup.ts';

test('text is text, in content and in attributes', () => {
  const drawing = h(Fragment, null, h('text', { class: '"a" & <b>' }, '<tspan>', ' & "so"'));
  expect(markup(drawing)).toBe(
    '<text class="&quot;a&quot; &amp; &lt;b>">&lt;tspan> &amp; &quot;so&quot;</text>',
  );
});

test('what XML excludes is left out, and the end of a CDATA section is escaped', () => {
  // XML 1.0, sections 2.2 and 2.4.
  const drawing = h(Fragment, null, h('text', { class: 'x\0y' }, 'a\x07b\tc\nd\x1b[2J \uFFFE]]>'));
  expect(markup(drawing)).toBe('<text class="xy">ab\tc\nd[2J ]]&gt;</text>');
});
