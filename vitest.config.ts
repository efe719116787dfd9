import { defineConfig } from 'vitest/config';

const common = { pool: 'forks', testTimeout: 60_000, hookTimeout: 60_000 } as const;

/**
 * Tests that fetch nothing, and start hundreds of programs: each node reads the certificates that the machine adds,
 * which takes longer than the rest of its start.
 */
const alone = { ...common, env: { NODE_EXTRA_CA_CERTS: '' } } as const;

/** Unit tests that take a second or more each: a quick run goes without them. */
const LONG = [
  'cli/{budget,commands,prop-file,rehearse,session}',
  'core/{behaviour/cue-ends,triggers}',
  'editing/plan',
  'gateway/{behaviour/requests,http/doors,lists,service-link,sessions}',
  'prop/{truncation,examples,explain,lint-cues,lint-mechanics,load}',
  'rehearsal/{rehearse,rehearse-all}',
  'service/{behaviour/{compiled,picture,versions},locks,state-file}',
  'sums/{ease,flash,light,linkage,linkage-branch,linkage-drawing,servo-mapping}',
].map((name) => `tests/${name}.test.ts`);

/**
 * Unit tests that take seconds each: random programs, attacks, long virtual times, real threads. And a release
 * that is packed and installed: it measures nothing, and runs beside them.
 */
const SLOW = [
  'core/{behaviour/cue-random,behaviour/examples,behaviour/light-whole,behaviour/random,behaviour/takes-random,idle,measuring,show-random}',
  'boards/{alsa/player,pigpio/native,threads}',
  'gateway/{host,http}',
  'prop/{edit-text,entries,fuzz,lint-loom,lint-reuse}',
  'editing/{random,cue-steps-random}',
  'page/cues-model-random',
  'proposal/random',
  'prop/kinds/sound',
  'sound/{decode,length}',
  'show/prop-stage',
  'service/{behaviour/capture,host,opening,outlet,planner,planner-follow}',
  'sums/{eased-move,loudness,profile,profile-optimal,profile-retarget,torque}',
  'systemd/install',
].map((name) => `tests/${name}.test.ts`);

/** Whole daemons, releases and pages that take half a minute each and more. */
const SLOW_SYSTEM = [
  'system/{cues,examples,life,measure,reload,show,show-many,show-run,with-cache}',
  'systemd/live',
].map((name) => `tests/${name}.test.ts`);
const SLOW_BROWSER = [
  'tests/browser/{access,bench,big,budget,colours,conduct,cues,desk,file,findings,frozen,link,looks,measure,ends,picture,parts,perform,presence,setup,show,strip,thumb,views,words}.test.ts',
];

const browser = {
  ...alone,
  globalSetup: 'tests/browser/chromium.ts',
  // A browser does things of its own at times of its own; what needed a second try is told.
  retry: 1,
  fileParallelism: false,
  // The longest take 15 s on a machine that has nothing else to do.
  testTimeout: 60_000,
};

// Whole daemons are measured, so they run after the unit tests and one file at a time.
export default defineConfig({
  test: {
    projects: [
      {
        test: {
          ...alone,
          name: 'unit',
          include: [
            'tests/*.test.ts',
            'tests/{shared,api,sums,sound,boards,prop,proposal,editing,core,rehearsal,gateway,page,drawings,cli,safe,doctor,service,show,startup,backup}/**/*.test.ts',
          ],
          exclude: [...LONG, ...SLOW],
          // Files share their modules: loading them takes longer than most tests.
          isolate: false,
          maxWorkers: '100%',
          sequence: { groupOrder: 1 },
        },
      },
      {
        test: {
          ...alone,
          name: 'long-unit',
          include: LONG,
          isolate: false,
          maxWorkers: '100%',
          sequence: { groupOrder: 1 },
        },
      },
      {
        test: {
          ...common,
          name: 'slow-unit',
          include: SLOW,
          globalSetup: 'tests/sound-tools.ts',
          // A busy machine takes several times as long.
          testTimeout: 240_000,
          maxWorkers: '100%',
          sequence: { groupOrder: 1 },
        },
      },
      {
        test: {
          ...alone,
          name: 'system',
          include: ['tests/{system,systemd}/**/*.test.ts'],
          exclude: [...SLOW, ...SLOW_SYSTEM],
          fileParallelism: false,
          sequence: { groupOrder: 2 },
        },
      },
      {
        test: {
          ...common,
          name: 'slow-system',
          include: SLOW_SYSTEM,
          fileParallelism: false,
          sequence: { groupOrder: 2 },
        },
      },
      {
        test: {
          ...browser,
          name: 'browser',
          include: ['tests/browser/**/*.test.ts'],
          exclude: SLOW_BROWSER,
          sequence: { groupOrder: 3 },
        },
      },
      {
        test: {
          ...browser,
          name: 'slow-browser',
          include: SLOW_BROWSER,
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
          name: 'board',
          include: ['tests/board/**/*.test.ts'],
          // Measured: on a processor of its own, one daemon at a time; it waits for another run's.
          fileParallelism: false,
          hookTimeout: 600_000,
          sequence: { groupOrder: 6 },
        },
      },
      {
        test: {
          ...common,
          name: 'kernel',
          include: ['tests/kernel/**/*.test.ts'],
          // An emulated machine takes its time, and more when this one has other things to do.
          testTimeout: 1_800_000,
          hookTimeout: 1_800_000,
          // It counts instructions, not seconds: beside unit tests it gives the same results.
          maxWorkers: '100%',
          sequence: { groupOrder: 1 },
        },
      },
      {
        test: {
          ...common,
          name: 'kernel-board',
          include: ['tests/raspi/**/*.test.ts'],
          testTimeout: 1_800_000,
          hookTimeout: 1_800_000,
          sequence: { groupOrder: 6 },
        },
      },
    ],
  },
});
