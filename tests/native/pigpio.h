/*
 * The part of the pigpio C interface that the npm package links with, for a library that stands in
 * for the real one. Names and types follow from node_modules/pigpio/src/pigpio.cc, which calls them.
 */
#ifndef SINEW_STAND_IN_PIGPIO_H
#define SINEW_STAND_IN_PIGPIO_H

#include <stdint.h>

#define PI_MAX_USER_GPIO 31
#define PI_WAVE_NOT_FOUND 9999

typedef void (*gpioISRFunc_t)(int gpio, int level, uint32_t tick);
typedef void (*gpioAlertFunc_t)(int gpio, int level, uint32_t tick);
typedef struct {
  uint32_t gpioOn;
  uint32_t gpioOff;
  uint32_t usDelay;
} gpioPulse_t;

#ifdef __cplusplus
extern "C" {
#endif

unsigned gpioHardwareRevision(void);
int gpioCfgInterfaces(unsigned flags);
int gpioCfgClock(unsigned micros, unsigned peripheral, unsigned source);
int gpioCfgSocketPort(unsigned port);
int gpioInitialise(void);
void gpioTerminate(void);
uint32_t gpioTick(void);

int gpioSetMode(unsigned gpio, unsigned mode);
int gpioGetMode(unsigned gpio);
int gpioSetPullUpDown(unsigned gpio, unsigned pull);
int gpioRead(unsigned gpio);
int gpioWrite(unsigned gpio, unsigned level);
int gpioServo(unsigned gpio, unsigned us);
int gpioGetServoPulsewidth(unsigned gpio);
int gpioPWM(unsigned gpio, unsigned duty);
int gpioGetPWMdutycycle(unsigned gpio);
int gpioSetPWMrange(unsigned gpio, unsigned range);
int gpioGetPWMrange(unsigned gpio);
int gpioGetPWMrealRange(unsigned gpio);
int gpioSetPWMfrequency(unsigned gpio, unsigned hz);
int gpioGetPWMfrequency(unsigned gpio);

/* Linked by the package and not modelled: a call is recorded as a violation. */
int gpioTrigger(unsigned gpio, unsigned us, unsigned level);
int gpioHardwarePWM(unsigned gpio, unsigned hz, unsigned duty);
int gpioGlitchFilter(unsigned gpio, unsigned us);
int gpioSetISRFunc(unsigned gpio, unsigned edge, int timeout, gpioISRFunc_t func);
int gpioSetAlertFunc(unsigned gpio, gpioAlertFunc_t func);
uint32_t gpioRead_Bits_0_31(void);
uint32_t gpioRead_Bits_32_53(void);
int gpioWrite_Bits_0_31_Set(uint32_t bits);
int gpioWrite_Bits_32_53_Set(uint32_t bits);
int gpioWrite_Bits_0_31_Clear(uint32_t bits);
int gpioWrite_Bits_32_53_Clear(uint32_t bits);
int gpioNotifyOpen(void);
int gpioNotifyOpenWithSize(int size);
int gpioNotifyBegin(unsigned handle, uint32_t bits);
int gpioNotifyPause(unsigned handle);
int gpioNotifyClose(unsigned handle);
int gpioWaveClear(void);
int gpioWaveAddNew(void);
int gpioWaveAddGeneric(unsigned count, gpioPulse_t *pulses);
int gpioWaveCreate(void);
int gpioWaveDelete(unsigned wave);
int gpioWaveTxSend(unsigned wave, unsigned mode);
int gpioWaveChain(char *bytes, unsigned count);
int gpioWaveTxAt(void);
int gpioWaveTxBusy(void);
int gpioWaveTxStop(void);
int gpioWaveGetMicros(void);
int gpioWaveGetHighMicros(void);
int gpioWaveGetMaxMicros(void);
int gpioWaveGetPulses(void);
int gpioWaveGetHighPulses(void);
int gpioWaveGetMaxPulses(void);
int gpioWaveGetCbs(void);
int gpioWaveGetHighCbs(void);
int gpioWaveGetMaxCbs(void);

#ifdef __cplusplus
}
#endif

#endif
