import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { extname } from 'node:path';
import type { FastifyPluginAsync } from 'fastify';

const TYPES: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
};

/**
 * GET / and the files of the bench page. They are read once; each has a route of its own, so no
 * path of a request ever reaches the file system.
 */
export const page: FastifyPluginAsync = async (app) => {
  const folder = new URL('../page/', import.meta.url);
  for (const name of await readdir(folder)) {
    const type = TYPES[extname(name)];
    if (!type) continue;
    const content = await readFile(new URL(name, folder));
    const etag = `"${createHash('sha256').update(content).digest('base64url')}"`;
    const path = name === 'index.html' ? '/' : `/${encodeURIComponent(name)}`;
    app.get(path, async (request, reply) => {
      reply.headers({ etag, 'cache-control': 'no-cache' });
      if (request.headers['if-none-match'] === etag) return reply.code(304).send();
      return reply.header('content-type', type).send(content);
    });
  }
};
