import { LEASE } from '../errors.ts';
import type { Family } from '../method.ts';

/** The show of many props that this one takes part in. */
export const show = {
  'show.arm': {
    summary:
      "Arm the prop for its show: from now on a go wakes and moves it with nobody at it. Lost by a stop, a fault, a lockout, a low voltage, a restart, another show in the file, the next holder of the lease, and the loss of the holder's link",
    example: { params: {}, result: { armed: true } },
    by: 'core',
    lease: true,
    errors: [...LEASE, 'show.none', 'condition.forbids', 'lockout.set', 'guard.broken'],
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.object({ armed: z.literal(true) }),
  },
  'show.disarm': {
    summary:
      'Disarm the prop: no go takes effect any more, and a prop that is awake for the show parks. From any session',
    example: { params: {}, result: { armed: false } },
    by: 'core',
    lease: false,
    errors: [],
    params: ({ nothing }) => nothing,
    result: ({ z }) => z.object({ armed: z.literal(false) }),
  },
} as const satisfies Family;
