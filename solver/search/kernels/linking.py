"""Parts of kernels kept as they were written until an entry is compiled, which then has one copy of each.

The compiler makes every function a library of its own: with a copy of all that it calls, optimised, and
turned into machine code. A part is called by other kernels only, so nobody ever runs that machine code, and
what it calls is optimised once more in every caller of its callers. So a part's library hands on its text,
with that of what it calls, and only the entry's is optimised as a whole.
"""

from __future__ import annotations

from typing import Any

from numba.core import cgutils
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_machinery import PassManager

_hold: Any = cgutils.add_global_variable
"""The compiler's functions that say nothing of their types."""
_address: Any = cgutils.voidptr_t
_PassManager: Any = PassManager
_usual: Any = DefaultPassBuilder.define_nopython_pipeline

ENVIRONMENT = "_ZN08NumbaEnv"
"""How the names begin of what holds a function's surroundings: the compiler sets them by their address."""
NEEDLESS = ("InlineClosureLikes", "InlineInlinables", "InlineOverloads", "NopythonRewrites")
"""Passes that would find nothing to do in a part: no function within a function, nothing that is written out
where it is called, no expression of whole arrays. A pass is known by its name, so that one that a version of
the compiler does not have is none to be left out."""


class PartLibrary(JITCodeLibrary):
    """The library of a part.

    Only the step that would optimise it is another. Where a version of the compiler has no such step, it is
    a library like all others: slower to compile, and nothing else.
    """

    def _optimize_final_module(self) -> None:
        """Keep the text for those that call the part, and leave only its surroundings to be compiled."""
        whole = self._final_module
        for function in whole.functions:
            if not function.is_declaration and function.linkage.name == "external":
                # Several callers may bring a copy each: they are one.
                function.linkage = "linkonce_odr"
        self._shared_module = whole
        self._final_module = self._surroundings(whole)

    def _surroundings(self, whole: Any) -> Any:
        """A module with what holds the surroundings of every function of another module."""
        library = self.codegen.create_library(self.name)
        module = library.create_ir_module(self.name)
        for variable in whole.global_variables:
            if variable.name.startswith(ENVIRONMENT):
                held = _hold(module, _address, variable.name)
                held.linkage, held.initializer = "common", _address(None)
        library.add_ir_module(module)
        return library._final_module  # noqa: SLF001  # a library of the same kind


_PartLibrary: Any = PartLibrary


class PartCompiler(CompilerBase):
    """Compiles a part: without the passes that it does not need, into a library of its own kind."""

    def define_pipelines(self) -> list[Any]:
        """The steps, in their order."""
        state = self.state
        state.library = _PartLibrary(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        steps = _PassManager("part")
        for step, told in _usual(state).passes:
            if step.__name__ not in NEEDLESS:
                steps.add_pass(step, told)
        steps.finalize()
        return [steps]
