const ENDINGS: Record<string, string> = {
  'image/jpeg': 'jpg',
  'image/png': 'png',
  'image/svg+xml': 'svg',
};

/** A plain name for the picture, whatever the file was called. */
export function nameFor(given: string, type: string): string {
  const at = given.lastIndexOf('.');
  const stem = (at > 0 ? given.slice(0, at) : given)
    .normalize('NFKD')
    .replace(/[^A-Za-z0-9_.-]+/g, '-')
    .replace(/^[^A-Za-z0-9]+|[.-]+$/g, '')
    .slice(0, 60);
  const own = at > 0 ? given.slice(at + 1).toLowerCase() : '';
  return `${stem || 'picture'}.${ENDINGS[type] ?? own}`;
}
