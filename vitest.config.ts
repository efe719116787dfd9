import { defineConfig } from 'vitest/config';

const common = { pool: 'forks', testTimeout: 60_000, hookTimeout: 60_000 } as const;

// Whole daemons are measured, so they run after the unit tests and one file at a time.
export default defineConfig({
  test: {
    projects: [
      {
        test: {
          ...common,
          name: 'unit',
          include: [
            'tests/{shared,sums,prop,drivers,core,gateway,page,cli,safe,doctor}/**/*.test.ts',
          ],
          maxWorkers: '100%',
          sequence: { groupOrder: 1 },
        },
      },
      {
        test: {
          ...common,
          name: 'system',
          include: ['tests/{system,systemd}/**/*.test.ts'],
          fileParallelism: false,
          sequence: { groupOrder: 2 },
        },
      },
      {
        test: {
          ...common,
          name: 'browser',
          include: ['tests/browser/**/*.test.ts'],
          globalSetup: 'tests/browser/chromium.ts',
          // A browser does things of its own at times of its own; what needed a second try is told.
          retry: 1,
          fileParallelism: false,
          testTimeout: 30_000,
          sequence: { groupOrder: 3 },
        },
      },
      {
        test: {
          ...common,
          name: 'faults',
          include: ['tests/faults/**/*.test.ts'],
          globalSetup: 'tests/faults/table.ts',
          fileParallelism: false,
          sequence: { groupOrder: 4 },
        },
      },
      {
        test: {
          ...common,
          name: 'kernel',
          include: ['tests/kernel/**/*.test.ts'],
          // An emulated machine takes its time, and more when this one has other things to do.
          testTimeout: 900_000,
          hookTimeout: 900_000,
          sequence: { groupOrder: 5 },
        },
      },
      {
        test: {
          ...common,
          name: 'kernel-board',
          include: ['tests/raspi/**/*.test.ts'],
          testTimeout: 900_000,
          hookTimeout: 900_000,
          sequence: { groupOrder: 6 },
        },
      },
    ],
  },
});
