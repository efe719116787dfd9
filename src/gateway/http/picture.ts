import type { FastifyPluginAsync } from 'fastify';
import type { PictureType } from '../../prop/picture/safe-picture.ts';
import type { ServedPicture } from '../../service/protocol.ts';
import { hashToken, tokenMatches } from '../token.ts';

/** The picture in use, and the one before: a page that has not heard of the new one still asks for it. */
const KEPT = 2;

const TYPES: Record<PictureType, string> = {
  png: 'image/png',
  jpeg: 'image/jpeg',
  svg: 'image/svg+xml',
};

/** What the browser may do with a picture that somebody opens by itself: show it, and nothing else. */
const POLICY = "default-src 'none'; frame-ancestors 'none'; sandbox";

/** Pictures to be served from memory, by their addresses: secrets like a token, which only a session gets. */
export class Pictures {
  #kept: { hash: Uint8Array; type: string; content: Buffer }[] = [];

  take({ address, type, bytes }: ServedPicture): void {
    const others = this.#kept.filter(({ hash }) => !tokenMatches(address, hash));
    const content = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    this.#kept = [{ hash: hashToken(address), type: TYPES[type], content }, ...others].slice(
      0,
      KEPT,
    );
  }

  at(address: string): { type: string; content: Buffer } | undefined {
    return this.#kept.find(({ hash }) => tokenMatches(address, hash));
  }
}

/**
 * GET /picture/ADDRESS: the picture of the prop. The address is a secret of 256 bits that a session gets
 * from `picture.read`: where the daemon asks for a token, nobody without it can ask for the picture.
 */
export const picture: FastifyPluginAsync<{ pictures: Pictures }> = async (app, { pictures }) => {
  app.get<{ Params: { address: string } }>('/picture/:address', async (request, reply) => {
    const found = pictures.at(`/picture/${request.params.address}`);
    if (!found) {
      reply.code(404).header('cache-control', 'no-store');
      return { error: 'there is no such picture; picture.read says where it is' };
    }
    return reply
      .headers({
        'content-type': found.type,
        'content-security-policy': POLICY,
        'content-disposition': 'inline',
        'cache-control': 'private, max-age=31536000, immutable',
      })
      .send(found.content);
  });
};
