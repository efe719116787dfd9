/** A name for the prop file from that of a sound's file: `Owl, hoot 2.wav` becomes `Owl_hoot_2`. */
export function soundNameOf(file: string): string {
  const stem = file.replace(/^.*[/\\]/, '').replace(/\.[^.]*$/, '');
  const name = stem
    .normalize('NFKD')
    .replace(/\p{M}/gu, '')
    .replace(/[^A-Za-z0-9]+/g, '_')
    .replace(/^[^A-Za-z]+|_+$/g, '')
    .slice(0, 40);
  return name === '' ? 'sound' : name;
}
