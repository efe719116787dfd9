import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { extname } from 'node:path';
import { gzipSync } from 'node:zlib';
import type { FastifyPluginAsync } from 'fastify';

const TYPES: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  // JSON Schema, draft 2020-12, core, 14: the media type of a schema.
  '.json': 'application/schema+json',
};

/**
 * GET / and the files of a page; of the bench page, the schema of the prop file for editors as well. They are read once, and compressed once if somebody wants that; each has a route of its
 * own, so no path of a request ever reaches the file system.
 */
export const page: FastifyPluginAsync<{ folder: URL }> = async (app, { folder }) => {
  // The files of a page are named from beside it.
  if (app.prefix !== '') app.get('', async (_request, reply) => reply.redirect(`${app.prefix}/`));
  for (const name of await readdir(folder)) {
    const type = TYPES[extname(name)];
    if (!type) continue;
    const content = await readFile(new URL(name, folder));
    const hash = createHash('sha256').update(content).digest('base64url');
    // Each form has an entity tag of its own (RFC 9110, 8.8.3.3).
    const plain = { content, etag: `"${hash}"` };
    let zipped: typeof plain | undefined;
    const zip = () => ({ content: gzipSync(content, { level: 9 }), etag: `"${hash}-gzip"` });
    const path = name === 'index.html' ? '/' : `/${encodeURIComponent(name)}`;
    app.get(path, { prefixTrailingSlash: 'slash' }, async (request, reply) => {
      const gzip = takesGzip(request.headers['accept-encoding']);
      if (gzip) zipped ??= zip();
      const form = (gzip && zipped) || plain;
      reply.headers({ etag: form.etag, 'cache-control': 'no-cache', vary: 'accept-encoding' });
      if (request.headers['if-none-match'] === form.etag) return reply.code(304).send();
      if (gzip) reply.header('content-encoding', 'gzip');
      return reply.header('content-type', type).send(form.content);
    });
  }
};

/** Whether an Accept-Encoding header allows gzip; a weight of 0 forbids (RFC 9110, 12.5.3). */
function takesGzip(header: string | string[] | undefined): boolean {
  const weights = new Map<string, number>();
  for (const part of String(header ?? '').split(',')) {
    const [coding, weight] = part.toLowerCase().split(';');
    const q = /^\s*q=([0-9.]+)\s*$/.exec(weight ?? '')?.[1];
    weights.set(coding!.trim(), q === undefined ? 1 : Number(q));
  }
  return (weights.get('gzip') ?? weights.get('*') ?? 0) > 0;
}
