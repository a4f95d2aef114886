/* python.exe: loads python311.dll and starts it. */
#include <wchar.h>
__declspec(dllimport) int Py_Main(int, wchar_t **);
int wmain(int argc, wchar_t **argv) { return Py_Main(argc, argv); }
