import { execFileSync, spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import type { Writable } from 'node:stream';
import { expect, test } from 'vitest';
import { lifeOf, stillLives } from '../../src/safe/life.ts';

test('a life is that of one process alone', () => {
  const own = lifeOf(process.pid)!;
  expect(stillLives(own)).toBe(true);
  expect(stillLives({ ...own, startTicks: own.startTicks - 1 })).toBe(false);
  expect(stillLives({ ...own, bootId: 'another boot' })).toBe(false);
});

test('its start is the one that ps tells', () => {
  const [uptimeS] = readFileSync('/proc/uptime', 'utf8').split(' ');
  const hertz = Number(execFileSync('getconf', ['CLK_TCK'], { encoding: 'utf8' }));
  const ageS = Number(uptimeS) - lifeOf(process.pid)!.startTicks / hertz;
  const pid = Number(
    execFileSync('ps', ['-o', 'etimes=', '-p', String(process.pid)], { encoding: 'utf8' }),
  );
  expect(Math.abs(ageS - pid)).toBeLessThanOrEqual(1.5);
});

test('a process that has ended and a zombie do not live', async () => {
  const ended = spawn('true');
  await new Promise((resolve) => ended.once('exit', resolve));
  expect(lifeOf(ended.pid!)).toBeUndefined();

  // The shell becomes `sleep`, which never asks how its child ended: a zombie stays behind. The child
  // waits for that, as the shell itself would ask.
  const parent = spawn('sh', ['-c', 'read _ <&3 & echo $!; exec sleep 60'], {
    stdio: ['ignore', 'pipe', 'inherit', 'pipe'],
  });
  const zombie = Number(await new Promise((resolve) => parent.stdout!.once('data', resolve)));
  const proc = (pid: number, file: string) => readFileSync(`/proc/${pid}/${file}`, 'utf8');
  const until = async (holds: () => boolean) => {
    while (!holds()) await new Promise((resolve) => setTimeout(resolve, 5));
  };
  await until(() => proc(parent.pid!, 'comm') === 'sleep\n');
  (parent.stdio[3] as Writable).end();
  await until(() => /\) Z/.test(proc(zombie, 'stat')));
  expect(lifeOf(zombie)).toBeUndefined();
  parent.kill();
});

test('a program name with blanks and brackets does not shift the fields', async () => {
  const child = spawn('bash', ['-c', 'printf ") Z (x" > /proc/$$/comm; echo; read -r _']);
  await new Promise((resolve) => child.stdout.once('data', resolve));
  expect(readFileSync(`/proc/${child.pid}/comm`, 'utf8')).toBe(') Z (x\n');
  expect(Math.abs(lifeOf(child.pid!)!.startTicks - lifeOf(process.pid)!.startTicks)).toBeLessThan(
    1e6,
  );
  child.stdin.end();
});
