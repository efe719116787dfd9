import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { extname } from 'node:path';
import type { FastifyPluginAsync, FastifyReply, FastifyRequest } from 'fastify';
import type { Clock } from '../../shared/clock.ts';

const TYPES: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  // JSON Schema, draft 2020-12, core, 14: the media type of a schema.
  '.json': 'application/schema+json',
};

/** How long after the gateway listens the files are read (ms), where nobody has asked for them yet. */
const READ_MS = 500;

/** A file as it is sent. Each form has an entity tag of its own (RFC 9110, 8.8.3.3). */
interface Form {
  content: Buffer;
  etag: string;
}

/** A file of the page, read once, and compressed once if somebody wants that. */
class PageFile {
  readonly type: string;
  readonly #url: URL;
  #plain: Promise<Form> | undefined;
  #zipped: Form | undefined;

  constructor(url: URL, type: string) {
    this.#url = url;
    this.type = type;
  }

  /** One that could not be read is read again when it is next asked for. */
  plain(): Promise<Form> {
    this.#plain ??= readFile(this.#url).then(
      (content) => {
        const hash = createHash('sha256').update(content).digest('base64url');
        return { content, etag: `"${hash}"` };
      },
      (error) => {
        this.#plain = undefined;
        throw error;
      },
    );
    return this.#plain;
  }

  async zipped(): Promise<Form> {
    const { content, etag } = await this.plain();
    // Node's module for it takes a while to load: a start goes without.
    const { gzipSync } = await import('node:zlib');
    this.#zipped ??= {
      content: gzipSync(content, { level: 9 }),
      etag: etag.replace(/"$/, '-gzip"'),
    };
    return this.#zipped;
  }
}

/**
 * GET / and the files of a page; of the bench page, the schema of the prop file for editors as well. Which
 * there are is looked up once: no path of a request ever reaches the file system. They are read soon after
 * the start, so that a later release that is put in their place does not mix with this one.
 */
export const page: FastifyPluginAsync<{ folder: URL; clock: Clock }> = async (
  app,
  { folder, clock },
) => {
  // The files of a page are named from beside it.
  if (app.prefix !== '') app.get('', async (_request, reply) => reply.redirect(`${app.prefix}/`));
  const files = new Map<string, PageFile>();
  for (const name of await readdir(folder)) {
    const type = TYPES[extname(name)];
    const path = name === 'index.html' ? '' : name;
    if (type) files.set(path, new PageFile(new URL(name, folder), type));
  }
  const serve = async (path: string, request: FastifyRequest, reply: FastifyReply) => {
    const file = files.get(path);
    if (!file) return reply.callNotFound();
    const isZipped = takesGzip(request.headers['accept-encoding']);
    const { content, etag } = await (isZipped ? file.zipped() : file.plain());
    reply.headers({ etag, 'cache-control': 'no-cache', vary: 'accept-encoding' });
    if (request.headers['if-none-match'] === etag) return reply.code(304).send();
    if (isZipped) reply.header('content-encoding', 'gzip');
    return reply.header('content-type', file.type).send(content);
  };
  app.get('/', { prefixTrailingSlash: 'slash' }, (request, reply) => serve('', request, reply));
  app.get<{ Params: { name: string } }>('/:name', (request, reply) =>
    serve(request.params.name, request, reply),
  );
  let stopReading = () => {};
  app.addHook('onListen', async () => {
    stopReading = clock.after(READ_MS, () => {
      for (const file of files.values()) file.plain().catch(() => undefined);
    });
  });
  app.addHook('onClose', async () => stopReading());
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
