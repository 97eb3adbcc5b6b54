// Package eh rewrites WebAssembly that uses the legacy exception-handling instructions (try, catch,
// catch_all, delegate, throw, rethrow) into plain WebAssembly, which every engine runs.
//
// An exception in flight is a pair of globals: which tag (plus one) and which value. Every call that may
// raise is followed by a test of the first and a branch to the handler in force; a function without one
// returns zeros to its caller, which tests in turn. What may raise is found from the call graph: throw,
// rethrow and indirect calls do, and whoever calls such a function.
//
//	try (body) catch 0 (arm) catch_all (rest) end
//
// becomes
//
//	block                       ;; out: what a branch to the try's label means
//	  block                     ;; where the body's exceptions land
//	    (body, calls tested)  br out
//	  end
//	  keep flag and value in two locals (for rethrow)
//	  if flag is tag 0: clear it, push the value, (arm)  br out
//	  block  clear the flag, (rest)  br out  end
//	end
//
// Promises: a lowered module computes what the original computes, held against an engine that has the
// instructions on drawn programs (TestSameAnswersAsAnEngineWithExceptions); a malformed module gives an
// error, never a panic (FuzzLower).
//
// Limits: tags carry exactly one i32, as C++ exceptions and longjmp do; a try takes no parameters; no
// imported tags; no threads.
//
// Source: WebAssembly exception-handling proposal, legacy form ("Exceptions.md", 2022), for the meaning of
// the instructions and their binary form.
package eh
