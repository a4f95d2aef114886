/* ProcessPrng fills a buffer with random bytes. Windows 10 has it, Wine 8 does not. */
#include <windows.h>
BOOLEAN NTAPI SystemFunction036(PVOID, ULONG); /* RtlGenRandom of advapi32 */
__declspec(dllexport) BOOL ProcessPrng(PBYTE data, SIZE_T length) { return SystemFunction036(data, (ULONG)length); }
