"""Every model beside the nearest R routine: a module a family, each with its `CONTESTS`; one harness runs them."""
