import { expect, test } from 'vitest';
import { safePicture } from '../../../src/prop/picture/picture.ts';
import type { Refusal } from '../../../src/shared/errors.ts';

const NS = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"';
const drawing = (inside: string, own = 'viewBox="0 0 20 10"') =>
  `<svg ${NS} ${own}>${inside}</svg>`;
const taken = async (text: string) => {
  const safe = await safePicture(Buffer.from(text));
  return { ...safe, text: Buffer.from(safe.bytes).toString() };
};
const refused = async (text: string): Promise<Refusal> =>
  safePicture(Buffer.from(text)).then(
    ({ bytes }) => expect.unreachable(Buffer.from(bytes).toString()),
    (error) => error as Refusal,
  );

test('a drawing keeps its shapes, colours, gradients and words', async () => {
  const { text, width, height, leftOut } = await taken(
    `\uFEFF<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">
<!-- made by hand -->${drawing(`<defs><linearGradient id="g"><stop offset="0" style="stop-color:#fff"/></linearGradient>
<path id="p" d="M0 0l1-2.5e1z"/></defs><g transform="translate(1 2) rotate(45)"><use xlink:href="#p" x="2"/></g>
<circle cx="5" cy="5" r="2" fill="url(#g)"/><text x="1" y="2">Owl &amp; &lt;eye&gt;</text>`)}`,
  );
  expect(text).toContain('<path id="p" d="M0 0l1-2.5e1z"></path>');
  expect(text).toContain('<use href="#p" x="2"></use>');
  expect(text).toContain('fill="url(#g)"');
  expect(text).toContain('stop-color="#fff"');
  expect(text).toContain('transform="translate(1 2) rotate(45)"');
  expect(text).toContain('Owl &amp; &lt;eye&gt;');
  expect(text).not.toContain('DOCTYPE');
  expect([width, height, leftOut]).toEqual([1000, 500, []]);
  // What is safe stays as it is.
  expect((await taken(text)).text).toBe(text);
});

test('styles by class, kind and id become attributes, the stronger last', async () => {
  const { text, leftOut } = await taken(
    drawing(
      `<style>/* a */ #i{fill:blue} .st0, .b{fill:#FF0000;stroke:none} path{fill:green} g &gt; path{fill:red}</style>
<path class="st0 x" d="M0 0"/><path id="i" class="b" d="M1 1"/><path d="M2 2" fill="white" style="fill:black;position:fixed"/>`,
    ),
  );
  expect(text).toContain('<path d="M0 0" fill="#FF0000" stroke="none">');
  expect(text).toContain('<path id="i" d="M1 1" fill="blue" stroke="none">');
  expect(text).toContain('<path d="M2 2" fill="black">');
  expect(text).not.toMatch(/style|class|position/);
  expect(leftOut).toEqual(['some rules of its styles']);
});

test('what is unknown is left out with all that it contains, and said', async () => {
  const { text, leftOut } = await taken(
    drawing(
      `<metadata><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"/></metadata><filter id="f"><feGaussianBlur/></filter>
<mask><rect width="3" height="3"/></mask><x:y xmlns:x="urn:x"><rect width="1" height="1"/></x:y><rect width="2" height="2" data-a="1" filter="url(#f)"/>
<animate attributeName="href" to="javascript:alert(1)"/>`,
    ),
  );
  expect(text).toContain('<rect width="2" height="2"></rect>');
  expect(text).not.toMatch(/RDF|filter|feGaussian|mask|width="[13]"|data-a|animate|javascript/);
  expect(leftOut).toEqual(['<filter>', '<mask>', '<animate>']);
});

test.each([
  ['a script', '<script>alert(1)</script>'],
  ['a script in capitals', '<SCRIPT>alert(1)</SCRIPT>'],
  [
    'a script of another namespace',
    '<h:script xmlns:h="http://www.w3.org/1999/xhtml">x</h:script>',
  ],
  ['a script within what is left out', '<metadata><script>alert(1)</script></metadata>'],
  ['an event handler', '<rect onload="alert(1)"/>'],
  ['an event handler in capitals', '<rect ONCLICK="alert(1)"/>'],
  [
    'a part of a web page',
    '<foreignObject><b xmlns="http://www.w3.org/1999/xhtml">x</b></foreignObject>',
  ],
  ['a picture elsewhere', '<image href="http://example.com/a.png"/>'],
  ['a picture within', '<image xlink:href="data:image/png;base64,AAAA"/>'],
  ['a shape elsewhere', '<use xlink:href="other.svg#a"/>'],
  ['a shape elsewhere by a relative name', '<use href="/picture/x#a"/>'],
  ['a script as a link', '<a href="javascript:alert(1)"><rect/></a>'],
  ['a colour elsewhere', '<rect fill="url(http://example.com/a#b)"/>'],
  ['a colour elsewhere in a style', '<rect style="fill: URL( \'//example.com/a\' )"/>'],
  ['a hidden reference in a style', '<rect style="fill:\\75rl(http://example.com)"/>'],
  ['a style sheet that asks for another', '<style>@import "http://example.com/a.css";</style>'],
  [
    'a style sheet that asks for a font',
    '<style>@font-face{src:url(http://example.com/a)}</style>',
  ],
  ['what contains itself', '<g id="a"><use href="#a"/></g>'],
  [
    'what contains itself in a circle',
    '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
  ],
])('%s is refused', async (_what, inside) => {
  const { word, message } = await refused(drawing(inside));
  expect(word).toBe('picture.unsafe');
  expect(message).toMatch(/Save it as plain SVG, .* or as PNG/);
});

test('a style sheet asked for at the top is refused', async () => {
  const text = `<?xml-stylesheet href="a.css" type="text/css"?>${drawing('')}`;
  expect((await refused(text)).word).toBe('picture.unsafe');
});

test('entities are refused: those that grow, and those that read files', async () => {
  const laughs = `<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>${drawing('<text>&b;</text>')}`;
  const file = `<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>${drawing('<text>&x;</text>')}`;
  expect((await refused(laughs)).word).toBe('picture.unsafe');
  expect((await refused(file)).word).toBe('picture.unsafe');
  expect((await refused(drawing('<text>&nbsp;</text>'))).word).toBe('picture.damaged');
});

test('shapes that are shown again and again within each other are refused', async () => {
  const levels = Array.from({ length: 20 }, (_, i) => {
    const uses = `<use href="#l${i + 1}"/>`.repeat(4);
    return `<g id="l${i}">${uses}</g>`;
  });
  const text = drawing(`<defs>${levels.join('')}<g id="l20"><rect/></g></defs><use href="#l0"/>`);
  expect((await refused(text)).message).toMatch(/too many for a phone/);
  const many = drawing('<rect/>'.repeat(20_001));
  expect((await refused(many)).word).toBe('picture.unsafe');
  const deep = drawing('<g>'.repeat(80) + '</g>'.repeat(80));
  expect((await refused(deep)).word).toBe('picture.unsafe');
});

test('a drawing that is cut short, or does not say how large it is, is refused with its line', async () => {
  const whole = drawing('\n<g>\n<rect/>\n</g>\n');
  for (let at = 6; at < whole.length; at += 5)
    expect((await refused(whole.slice(0, at))).word).toMatch(/^picture\.(damaged|not-a-picture)$/);
  expect((await refused(drawing('', ''))).message).toMatch(/viewBox/);
  expect((await refused(drawing('', 'viewBox="0 0 1e9 1"'))).word).toBe('picture.damaged');
  expect((await refused('<html xmlns="http://www.w3.org/1999/xhtml"/>')).word).toBe(
    'picture.not-a-picture',
  );
  expect(await taken(drawing('', 'width="40mm" height="2cm"'))).toMatchObject({ height: 500 });
});

test('values with functions, blocks or escapes of CSS are left out', async () => {
  const nasty = ['expression(alert(1))', 'var(--x)', 'a;b', 'x{y}', '\\66', 'image(a)', '@x'];
  const { text } = await taken(
    drawing(nasty.map((value) => `<rect fill="${value}" width="1"/>`).join('')),
  );
  expect(text.match(/<rect width="1">/g)).toHaveLength(nasty.length);
  expect(text).not.toContain('fill');
});

test.each<[string, (many: number) => string]>([
  ['comments without an end', (many) => drawing(`<style>${'/*'.repeat(many)}</style>`)],
  ['rules without a body', (many) => drawing(`<style>${'a'.repeat(many)}</style>`)],
  ['escapes', (many) => drawing(`<path d="M0 0" style="${'\\'.repeat(many)}"/>`)],
  ['a size of blanks', (many) => drawing('', `width="1${' '.repeat(many)}!" height="1"`)],
])('%s take time that grows with their size alone', async (_what, text) => {
  // By the square of its size, this would take hours.
  const length = 4_000_000;
  await safePicture(Buffer.from(text(length / 2))).catch((error: Refusal) =>
    expect(error.word).toMatch(/^picture\./),
  );
});
