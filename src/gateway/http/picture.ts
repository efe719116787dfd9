import { createHash, timingSafeEqual } from 'node:crypto';
import type { FastifyPluginAsync } from 'fastify';
import type { PictureType } from '../../prop/picture/safe-picture.ts';
import type { ServedPicture } from '../../service/protocol.ts';

/** The picture in use, and the one before: a page that has not heard of the new one still asks for it. */
const KEPT = 2;

const TYPES: Record<PictureType, string> = {
  png: 'image/png',
  jpeg: 'image/jpeg',
  svg: 'image/svg+xml',
};

/** What the browser may do with a picture that somebody opens by itself: show it, and nothing else. */
const POLICY = "default-src 'none'; frame-ancestors 'none'; sandbox";

/** Pictures to be served from memory, by their addresses, which only a session is told. */
export class Pictures {
  #kept: { digest: Buffer; type: string; content: Buffer }[] = [];

  take({ address, type, bytes }: ServedPicture): void {
    const digest = digestOf(address);
    const others = this.#kept.filter((one) => !one.digest.equals(digest));
    const content = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    this.#kept = [{ digest, type: TYPES[type], content }, ...others].slice(0, KEPT);
  }

  at(address: string): { type: string; content: Buffer } | undefined {
    const digest = digestOf(address);
    return this.#kept.find((one) => timingSafeEqual(one.digest, digest));
  }
}

/** Addresses are compared by their digests, which takes as long for every wrong one. */
function digestOf(address: string): Buffer {
  return createHash('sha256').update(address).digest();
}

/**
 * GET /picture/ADDRESS: the picture of the prop. The address is a secret of 256 bits that a session is
 * told (`picture.read`): where the daemon asks for a token, nobody without it can ask for the picture.
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
